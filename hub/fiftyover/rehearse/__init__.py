"""The simulated smoker, the fake board, the virtual clock, and whole cooks run on them."""
