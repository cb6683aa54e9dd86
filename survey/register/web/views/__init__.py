"""Pages of the register, by subject."""
