"""What fills the blanks, where each figure is from, how much hangs on it, and which figures are plausible."""
