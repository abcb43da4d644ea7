[Version] 2.0
# GHz S RI R 50
[Number of Ports] 2
[Two-Port Data Order] 21_12
[Number of Frequencies] 1
[Number of Noise Frequencies] 2
[Network Data]
4 0 0 1 0 1 0 0 0
[Noise Data]
4 .7 .64 69 19
[End]
