"""Off paper: from typed text and from pictures to sightings of lines."""
