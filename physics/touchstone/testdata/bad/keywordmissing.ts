[Version] 2.1
# GHz S RI R 50
[Number of Ports] 2
[Number of Frequencies] 1
[Network Data]
1 0 0 1 0 1 0 0 0
[End]
