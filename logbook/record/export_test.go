package record

// AsWritten is the quick way alone.
func (q *Reader) AsWritten(raw []byte) (Record, bool) { return q.asWritten(raw) }
