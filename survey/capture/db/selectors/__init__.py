"""All reading of what tablets sent and what they take along."""
