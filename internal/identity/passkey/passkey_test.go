package passkey

import (
	"fmt"
	"net/url"
	"testing"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// How people come in with passkeys is tested with the door, in package identity.

func TestQuestionsAreBounded(t *testing.T) {
	clock := storetest.NewClock()
	db, err := sqlite.Folder(t.TempDir()).
		Create(t.Context(), record.SiteBody{Code: "S1", Name: "Test site", Zone: "Europe/Berlin", Origin: "test.example/s1"}, clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	base, err := url.Parse("https://pc-7.example")
	if err != nil {
		t.Fatal(err)
	}
	keys, err := New(identity.NewDoor(db, access.Cost{Memory: 8, Passes: 1, Lanes: 1}), base)
	if err != nil {
		t.Fatal(err)
	}
	ask := func(address string) {
		if _, _, err := keys.AskToSignIn(identity.Source{Address: address}); err != nil {
			t.Fatal(err)
		}
	}
	for i := range mostQuestions + 1 {
		ask(fmt.Sprintf("10.0.%d.%d", i>>8, i&255))
	}
	if n := len(keys.asked); n != mostQuestions {
		t.Errorf("%d questions are open", n)
	}
	clock.Move(time.Hour)
	for range 2 { // the place that the last one has left, and one more
		ask("192.0.2.7")
	}
	if n := len(keys.asked); n > 2 {
		t.Errorf("%d questions are open when all are long over", n)
	}
}
