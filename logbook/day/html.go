package day

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
)

//go:embed sheet.html.tmpl
var sheetTemplate string

// HTML writes the day sheet as one file that needs nothing else: no script, no
// resource from outside. It prints on A4 and on Letter, in black and white as well.
func (s Sheet) HTML(w io.Writer) error {
	t, err := template.New("sheet").Parse(sheetTemplate)
	if err != nil {
		return fmt.Errorf("read the template of the day sheet: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, s.paper()); err != nil {
		return fmt.Errorf("lay out the day sheet: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write day sheet: %w", err)
	}
	return nil
}
