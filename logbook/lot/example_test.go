package lot_test

import (
	"fmt"

	"flaskside/logbook/lot"
)

// A scan of a GS1 code: article, expiry and lot. The article number is the example of
// the General Specifications' check digit (from memory); the lot is invented.
func ExampleParse() {
	l, err := lot.Parse("(01)09506000134352(17)281231(10)P-118", 2026)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(l.Scheme, l.GTIN, l.Lot, l.Expiry)
	// Output: gs1 09506000134352 P-118 2028-12-31
}
