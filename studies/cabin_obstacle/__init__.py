"""Whether the enclosure, standing in the cabin, changes the cabin."""
