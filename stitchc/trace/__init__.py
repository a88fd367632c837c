"""Charts read out of pictures: the picture opened safely, its grid found, its cells told apart."""
