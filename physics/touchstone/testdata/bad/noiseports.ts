[Version] 2.0
# GHz S RI R 50
[Number of Ports] 1
[Number of Frequencies] 1
[Number of Noise Frequencies] 1
[Network Data]
1 0 0
[Noise Data]
1 1 .1 0 20
[End]
