"""Questions answered from results: wall check, estimate, capture planning."""
