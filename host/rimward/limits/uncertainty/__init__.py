"""JCGM 100 budgets, decision rules, and the guard band of an inflator. Submodules are loaded on demand."""
