"""How fast is a batch of designs evaluated, against dense linear algebra?"""
