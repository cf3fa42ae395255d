"""Arrays in, quantities with uncertainties out. Knows no screen and no file format."""
