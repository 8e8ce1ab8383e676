"""Makes the inventions beside this file importable from every folder of tests."""
