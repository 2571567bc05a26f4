package web

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"rinsate/internal/store/storetest"
)

// paperWidth is what the margins leave of A4, in CSS pixels of 1/96 inch: 210 - 2 * 14 mm.
const paperWidth = 688

// onScreenOnly are parts that paper has no use for, and cut what paper would cut off.
const (
	onScreenOnly = `[...document.querySelectorAll("nav, form, button, .button, .top, .skip")].filter((e) =>
		e.checkVisibility() && !e.closest(".term, .people, .skip")).map((e) => "on paper there is also: " + e.outerHTML.slice(0, 100))`
	cut = `[...document.querySelectorAll("main *")].filter((e) => e.checkVisibility() && getComputedStyle(e).overflowX !== "visible" && e.clientWidth > 1 &&
		e.scrollWidth > e.clientWidth + 1).map((e) => "paper cuts off: " + e.outerHTML.slice(0, 100))`
	noCaution = `document.querySelector(".caution")?.checkVisibility() ? [] : ["the caution is not on paper"]`
)

// On paper each page has its content whole, the caution, and nothing that only a screen can do. The pages
// at which people work or sign in are not printed.
func TestPaper(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	tried := []string{"bench", "sign-in", "account"}
	for _, e := range b.examples() {
		if slices.Contains(tried, e.template) || e.status >= http.StatusBadRequest {
			continue
		}
		tried = append(tried, e.template)
		t.Run(e.template, func(t *testing.T) {
			t.Parallel()
			p := openPage(t, b.server.Base.String())
			if e.role != nobody {
				signIn(b, p, e.role)
			}
			p.size(paperWidth, 972)
			p.open(e.path)
			p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
				_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
				return err
			}))
			for _, f := range slices.Concat(eval[[]string](p, onScreenOnly), eval[[]string](p, cut), eval[[]string](p, tooWide), eval[[]string](p, noCaution)) {
				t.Error(f)
			}
			if *screenshots == "" {
				return
			}
			printed := run(p, func(ctx context.Context, t *chromedp.Target) ([]byte, error) {
				yes := true
				r, err := cdp.Call(ctx, t, cdppage.PrintToPDF, cdppage.PrintToPDFParams{PrintBackground: &yes, PreferCSSPageSize: &yes})
				return r.Data, err
			})
			if err := os.WriteFile(filepath.Join(*screenshots, "paper-"+e.template+".pdf"), printed, 0o600); err != nil {
				t.Fatal(err)
			}
		})
	}
}
