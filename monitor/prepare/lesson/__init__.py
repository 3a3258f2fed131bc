"""Learning the sounds: the series of questions, the score, what is kept of it, and the sounds as WAV files."""
