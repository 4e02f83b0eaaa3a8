"""The order of work: sequence files, their steps, and the run that carries them out."""
