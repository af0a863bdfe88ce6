"""From a folder of YAML to checked knowledge: files, source, schema, layers, build, checks, load, cache."""
