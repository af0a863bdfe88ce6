"""What a step can be answered with besides its outcomes."""
