"""What may lie behind a place: one module an explanation, each predicting every order there."""
