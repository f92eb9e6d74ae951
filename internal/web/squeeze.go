package web

import (
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
)

// squeezed compresses pages and scripts for browsers that say they can read it (RFC 9110, section 8.4.1.3); pictures and
// delivered files are compressed already. What is said beside what a stranger may put in gives nothing away by its length:
// the session's cookie is not in the page, and another site's requests do not bring it (SameSite=Lax).
var squeezed = middleware.GzipWithConfig(middleware.GzipConfig{
	Level:     5,
	MinLength: 1400, // less fits one packet as it is
	Skipper: func(c echo.Context) bool {
		at := c.Path()
		return strings.Contains(at, "/thumb/") || strings.Contains(at, "/files/") || strings.HasSuffix(at, "/progress")
	},
})
