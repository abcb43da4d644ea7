[Version] 3.0
# GHz S RI R 50
