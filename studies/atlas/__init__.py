"""Which graphs win in which season."""
