"""A bike and the knowledge, made into a networkx decision graph; the situations a bike goes through."""
