"""What is on the wall: colours in spray order, overspray, register margins."""
