!2-port H-parameter file, single frequency point
[Version] 2.0
# kHz H MA R 1
[Number of Ports] 2
[Two-Port Data Order] 21_12
[Number of Frequencies] 1
[Matrix Format] Full
[Network Data]
! freq magH11 angH11 magH21 angH21 magH12 angH12 magH22 angH22
2 .95 -26 3.57 157 .04 76 .66 -14
[End]
