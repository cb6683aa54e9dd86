"""All writing to the register."""
