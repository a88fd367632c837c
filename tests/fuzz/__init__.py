"""A search for inputs that break promises, and those it found."""
