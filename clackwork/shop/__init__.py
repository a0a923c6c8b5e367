"""What a door calls: one function per action, on a book and plain arguments."""
