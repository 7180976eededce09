"""From a customer's photos to clicks that a person only has to correct: known things, the top's corners, what to ask for."""
