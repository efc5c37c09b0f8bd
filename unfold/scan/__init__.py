"""Files of any open format become a stream of points in metres, with the stations they were seen from."""
