"""The promises, each with its control: the same test with the guard taken out must end badly."""
