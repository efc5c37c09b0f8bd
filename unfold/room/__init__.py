"""The stream becomes a levelled room: floor, ceiling and a chain of walls with base surfaces."""
