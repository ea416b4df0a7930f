"""A recorded multitone: even, odd and noise apart."""
