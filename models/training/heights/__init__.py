"""How high bodies are over the mat, learned from rendered bouts through random cameras."""
