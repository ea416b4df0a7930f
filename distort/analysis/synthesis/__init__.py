"""What a loudspeaker would do to another signal, from the orders that its sweeps show."""
