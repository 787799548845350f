package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"solewright/models/photos/s3test"
)

func TestPhotosMayLieInABucket(t *testing.T) {
	flags := retailer(t)
	bucket := s3test.New(t)
	secret := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(secret, []byte(s3test.Secret+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	verify := func(env map[string]string, args ...string) outcome {
		return command(t, "", env, slices.Concat([]string{"verify"}, args, flags)...)
	}
	in := map[string]string{"SOLEWRIGHT_PHOTOS": bucket.URL, "SOLEWRIGHT_PHOTOS_KEY": s3test.Key}
	if got := verify(in, "--photos-secret-file", secret); got.code != exitDone || !strings.Contains(got.out, "0 photos") {
		t.Errorf("exit %d, %s%s", got.code, got.out, got.err)
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{nil, "a bucket takes a key and its secret"},
		{[]string{"--photos-secret-file", secret + ".gone"}, "--photos-secret-file"},
		{[]string{"--photos", "s3://shoes"}, "want s3:https://HOST/BUCKET"},
	} {
		if got := verify(in, c.args...); got.code != exitWrong || !strings.Contains(got.err, c.says) || strings.Count(got.err, "\n") != 1 {
			t.Errorf("%q: exit %d, %q, want one line that says %q", c.args, got.code, got.err, c.says)
		}
	}
}
