"""The virtual pull: the collapse of an insert's shank, simulated from its measured dimensions and its material.

``closed_form`` is an estimate by hand, ``case`` the question, ``solve`` the answer. Numba is imported only where the
kernels are (``element``, ``contact``), so that nothing else waits for it.
"""
