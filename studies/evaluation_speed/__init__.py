"""How fast a batch of designs is evaluated, against dense linear algebra."""
