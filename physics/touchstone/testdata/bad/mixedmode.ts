[Version] 2.0
# GHz S RI R 50
[Number of Ports] 2
[Two-Port Data Order] 12_21
[Number of Frequencies] 1
[Mixed-Mode Order] D1,2 C2,1
[Network Data]
1 0 0 1 0 1 0 0 0
[End]
