"""The smallest useful swatch of a stitch: how many needles and rows, where to mark them, and what to expect between."""
