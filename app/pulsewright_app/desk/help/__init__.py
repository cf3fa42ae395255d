"""What Help shows: the guide on the sample, the cautions, what this program is."""
