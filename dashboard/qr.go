package dashboard

import (
	"fmt"
	"image/color"
	"net/http"
	"strings"

	"github.com/boombuler/barcode/qr"
	"github.com/gin-gonic/gin"

	"solewright/assess"
)

// quietZone is how many light modules surround a QR code: ISO/IEC 18004 asks
// for four.
const quietZone = 4

// drawQR draws text as a QR code of error correction level M, which bears a
// smudge on one module in seven: one SVG path of unit squares, black on white,
// with its quiet zone.
func drawQR(text string) ([]byte, error) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return nil, err
	}
	side := code.Bounds().Dx()
	var path strings.Builder
	for y := range side {
		for x := range side {
			if code.At(x, y) == color.Black {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+quietZone, y+quietZone)
			}
		}
	}
	box := side + 2*quietZone
	return fmt.Appendf(nil, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges">`+
		`<path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="%s"/></svg>`, box, box, box, box, path.String()), nil
}

// showPairQR serves the QR code of a pair's reference. It holds the reference
// alone, so that a scanner types it where a person would.
func (s *Server) showPairQR(c *gin.Context) error {
	ref, err := assess.ParsePairRef(c.Param("ref"))
	if err != nil {
		return refuse(notFound, "%q is no pair reference", c.Param("ref"))
	}
	svg, err := drawQR(ref)
	if err != nil {
		return err
	}
	// The same reference is the same code for ever.
	c.Header("Cache-Control", "private, max-age=31536000, immutable")
	c.Data(http.StatusOK, "image/svg+xml", svg)
	return nil
}
