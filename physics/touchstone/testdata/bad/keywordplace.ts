[Version] 2.0
[Number of Ports] 1
# GHz S RI R 50
[Number of Frequencies] 1
[Network Data]
1 0 0
[End]
