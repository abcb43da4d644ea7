[Version] 2.0
# GHz S RI R 50
[Number of Ports] 1
[Number of Frequencies] 2
[Network Data]
1 0 0
2 0 0
[End]
! fine
3 0 0
