"""The tray sheet: where everything lies on it, in millimetres. Pure; what is printed and what is photographed agree here."""
