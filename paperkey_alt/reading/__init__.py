"""Off paper: from typed text and from pictures to raw_lines of lines."""
