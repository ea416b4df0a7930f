"""What a publication rests on: frozen results, bundles."""
