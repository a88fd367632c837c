"""Stitches side by side: size, yarn and work of the same 100 needles by 100 rows, as values and as a plot.

Knows gauges, passes and profiles; reads and writes no file.
"""
