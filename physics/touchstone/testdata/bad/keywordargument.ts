[Version] 2.0
# GHz S RI R 50
[Number of Ports] two
[Number of Frequencies] 1
[Network Data]
1 0 0
[End]
