"""A condition put together: session and recordings in, analyses out."""
