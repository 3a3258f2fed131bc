"""What people write: quantities with units, and TOML files whose problems are all told by line."""
