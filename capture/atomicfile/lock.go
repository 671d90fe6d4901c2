package atomicfile

// Lock keeps other programs, and other parts of this one, from changing what lies in
// the folder dir, as long as they ask in the same way. Where another has it, it waits,
// or, unless wait, returns nil. A program that ends gives back its locks. File systems
// that know no locks are taken to have one user.
func Lock(dir string, wait bool) (unlock func()) { return lock(dir, wait) }
