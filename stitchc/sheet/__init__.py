"""The needle sheet: passes put into words and drawn as the bed, for a screen reader, for paper and for a tablet."""
