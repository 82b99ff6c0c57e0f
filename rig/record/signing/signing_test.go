package signing

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// signed makes a key and a signed file.
func signed(t *testing.T, password string) (Key, Public, string) {
	t.Helper()
	dir := t.TempDir()
	pub, err := New(filepath.Join(dir, "bench.key"), password)
	if err != nil {
		t.Fatal(err)
	}
	k, err := Load(filepath.Join(dir, "bench.key"), password)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "SHA256SUMS")
	if err := os.WriteFile(file, []byte("abc  readings.lp\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := k.Sign(file, "record 20260314T081502Z-KP-01"); err != nil {
		t.Fatal(err)
	}
	return k, pub, file
}

func TestAFileThatIsSignedIsKnownAgain(t *testing.T) {
	k, pub, file := signed(t, "")
	by, comment, err := Verify(file, []Public{pub})
	if err != nil || by.ID() != k.ID() || comment != "record 20260314T081502Z-KP-01" {
		t.Fatal(by.ID(), comment, err)
	}
	again, err := LoadPublic(PublicFile(k.File))
	if err != nil || again.ID() != pub.ID() {
		t.Fatal(again, err)
	}
}

func TestAnyAlteredByteOfFileOrSignatureShows(t *testing.T) {
	_, pub, file := signed(t, "")
	for _, name := range []string{file, file + Suffix} {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		from := 0
		if name != file { // the first line is not signed, as minisign says
			from = strings.Index(string(data), "\n") + 1
		}
		for i := from; i < len(data)-1; i++ {
			bad := []byte(string(data))
			bad[i] ^= 1
			if err := os.WriteFile(name, bad, 0o666); err != nil {
				t.Fatal(err)
			}
			if _, _, err := Verify(file, []Public{pub}); err == nil {
				t.Fatalf("%s: byte %d altered, and nothing shows", filepath.Base(name), i)
			}
		}
		if err := os.WriteFile(name, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

func TestWhoseSignatureItIsIsSaid(t *testing.T) {
	_, _, file := signed(t, "")
	_, other, _ := signed(t, "")
	if _, _, err := Verify(file, []Public{other}); !errors.Is(err, ErrUnknownKey) {
		t.Error(err)
	}
	os.Remove(file + Suffix)
	if _, _, err := Verify(file, []Public{other}); !errors.Is(err, ErrUnsigned) {
		t.Error(err)
	}
}

func TestAKeyIsKept(t *testing.T) {
	if testing.Short() {
		t.Skip("a password takes seconds to turn into a key, as it should")
	}
	k, _, _ := signed(t, "seven seals")
	if _, err := New(k.File, ""); err == nil || !strings.Contains(err.Error(), "never written over") {
		t.Error(err)
	}
	if _, err := Load(k.File, ""); err == nil || !strings.Contains(err.Error(), PasswordVariable) {
		t.Error(err)
	}
	if err := os.Chmod(k.File, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(k.File, "seven seals"); err == nil || !strings.Contains(err.Error(), "read by others") {
		t.Error(err)
	}
}

// TestThePublicToolAgrees lets Debian's minisign check what was signed here, and
// checks what it has signed.
func TestThePublicToolAgrees(t *testing.T) {
	tool, err := exec.LookPath("minisign")
	if err != nil {
		t.Skip("the public tool minisign is not installed here")
	}
	k, pub, file := signed(t, "")
	run := func(args ...string) (string, error) {
		out, err := exec.Command(tool, args...).CombinedOutput()
		return string(out), err
	}
	if out, err := run("-Vm", file, "-p", PublicFile(k.File)); err != nil || !strings.Contains(out, "record 20260314T081502Z-KP-01") {
		t.Fatal(out, err)
	}
	if out, err := run("-Vm", file, "-P", pub.String()); err != nil {
		t.Fatal(out, err)
	}
	if err := os.WriteFile(file, []byte("abd  readings.lp\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if out, err := run("-Vm", file, "-p", PublicFile(k.File)); err == nil {
		t.Fatal("the tool takes an altered file: ", out)
	}
	secret := filepath.Join(t.TempDir(), "made-elsewhere.key")
	if out, err := run("-G", "-W", "-p", PublicFile(secret), "-s", secret); err != nil {
		t.Skipf("this minisign makes no key without a password: %s", out)
	}
	if out, err := run("-Sm", file, "-s", secret, "-t", "by the tool"); err != nil {
		t.Fatal(out, err)
	}
	elsewhere, err := LoadPublic(PublicFile(secret))
	if err != nil {
		t.Fatal(err)
	}
	if _, comment, err := Verify(file, []Public{elsewhere}); err != nil || comment != "by the tool" {
		t.Fatal(comment, err)
	}
}
