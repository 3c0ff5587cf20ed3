"""The race over graphs compared with general-purpose optimisers."""
