"""session.toml."""
