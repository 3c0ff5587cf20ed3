"""Physics and geometry of small loudspeaker enclosures: networks, rooms, ducts, spaces, drive limits."""
