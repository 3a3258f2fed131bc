"""What is printed: the wall card and labels for bottles."""
