"""Bundle adjustment: unknowns, observation equations, normal equations, covariance and its parts."""
