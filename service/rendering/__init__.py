"""From a Decision to what people read: pure functions that return text; pages and other letters can follow."""
