package pages

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"
)

// filesVersion returns a short text that changes with the static files. It
// stands in their addresses, so that browsers may keep them, and names what
// worker.js keeps.
var filesVersion = sync.OnceValue(func() string {
	h := sha256.New()
	err := fs.WalkDir(staticFiles, ".", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := staticFiles.ReadFile(path)
		if err == nil {
			fmt.Fprintf(h, "%s %d\n%s", path, len(b), b)
		}
		return err
	})
	if err != nil {
		panic(err) // The files are built in.
	}
	// Not every system knows it.
	if err := mime.AddExtensionType(".webmanifest", "application/manifest+json"); err != nil {
		panic(err)
	}
	return hex.EncodeToString(h.Sum(nil)[:6])
})

// worker serves the script that answers for the pages where there is no signal.
// It must stand at the root to answer for all of them.
func (p *Pages) worker(c echo.Context) error {
	b, err := staticFiles.ReadFile("static/worker.js")
	if err != nil {
		return err
	}
	c.Response().Header().Set("Service-Worker-Allowed", p.API.Mounted("/"))
	b = bytes.Replace(b, []byte("VERSION_OF_FILES"), []byte(p.files), 1)
	return c.Blob(http.StatusOK, "text/javascript; charset=utf-8", b)
}
