package words

// KindHasWords tells whether a kind has words of its own.
func KindHasWords[C ~string](kind C) bool { return kinds[string(kind)] != "" }
