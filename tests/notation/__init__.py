"""Tests of the notation: its reader, its messages, and a second reading to hold it against."""
