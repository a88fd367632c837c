"""The fabric itself, yarn by yarn: one repeat relaxed to rest, and drawn as shaded tubes from either side."""
