"""Does the network of an enclosure agree with finite elements at real sizes? See README.md."""
