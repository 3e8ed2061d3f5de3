"""What the program gave before, frozen, so that a change of the code that should change nothing
is seen to change nothing."""
