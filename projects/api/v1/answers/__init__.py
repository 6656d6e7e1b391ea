"""What the API says about each noun: the shape, and how a row is put into it."""
