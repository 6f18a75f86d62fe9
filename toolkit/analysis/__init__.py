"""What the runs say: comparison with its scatter, the split of a difference, the fitted model."""
