"""The program in a browser, on the user's own machine: a form, a queue of runs, their answers."""
