"""`bench tomorrow`: what the forecasts say of days they have not seen, and what came."""
