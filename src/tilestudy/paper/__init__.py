"""What is printed: bench pack and handout, typeset from plain values. No finding is computed here."""
