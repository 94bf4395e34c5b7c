"""Linear mixed-effects models from cross-products; knows nothing of golf, files or plots."""
