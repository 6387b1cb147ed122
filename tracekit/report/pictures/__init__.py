"""One file per picture: a pure function from a result to a picture, None where there is nothing to show."""
