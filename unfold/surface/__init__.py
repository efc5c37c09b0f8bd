"""Each wall's height map, its uncertainty, flatness figures and verdicts."""
