package site

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"mime/multipart"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strings"

	"coilsweep/capture/rooted"
)

// maxUpload bounds what is sent in files: an hour of two channels at 192 kHz
// and 32 bit is 5 GiB, a take of a minute 90 MiB.
const maxUpload = 1 << 30

// uploadPrefix begins the names of folders of uploads.
const uploadPrefix = ".upload-"

// HandleUpload is Handle for POST with files, which may hold 1 GiB together.
func (s *Server) HandleUpload(path string, h Handler) {
	s.handle(http.MethodPost, path, "multipart/form-data", maxUpload, h)
}

// Upload is what a form held: texts, and files that are on disk until Close.
type Upload struct {
	Texts map[string]string
	Files map[string]UploadedFile
	dir   string
}

// UploadedFile is a file of a form.
type UploadedFile struct {
	Name string // as it was called where it came from, without folders
	Path string
}

// Receive reads the form of a call; its files go into a new hidden folder in
// dir, which Close removes. On an error nothing is left.
func Receive(r *http.Request, dir string) (*Upload, error) {
	form, err := r.MultipartReader()
	if err != nil {
		return nil, Errorf(http.StatusUnsupportedMediaType, "want a form with files: %v", err)
	}
	u := &Upload{Texts: map[string]string{}, Files: map[string]UploadedFile{}}
	if u.dir, err = rooted.MkdirTemp(dir, uploadPrefix); err != nil {
		return nil, fmt.Errorf("cannot take files in: %w", err)
	}
	if err := u.fill(form); err != nil {
		u.Close()
		return nil, err
	}
	return u, nil
}

func (u *Upload) fill(form *multipart.Reader) error {
	for {
		part, err := form.NextPart()
		if errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return unread(err)
		}
		if err := u.add(part); err != nil {
			return err
		}
	}
}

func (u *Upload) add(part *multipart.Part) error {
	field := part.FormName()
	_, text := u.Texts[field]
	_, file := u.Files[field]
	switch {
	case text || file:
		return Errorf(http.StatusBadRequest, "the form holds %.80q twice", field)
	case len(u.Texts)+len(u.Files) >= 16:
		return Errorf(http.StatusBadRequest, "the form holds too much")
	case part.FileName() == "":
		text, err := io.ReadAll(io.LimitReader(part, maxBody+1))
		if err != nil {
			return unread(err)
		}
		if len(text) > maxBody {
			return tooLarge(maxBody)
		}
		u.Texts[field] = string(text)
		return nil
	}
	name := path.Base(strings.ReplaceAll(part.FileName(), `\`, "/"))
	if checkPath(name) != "" {
		name = "recording"
	}
	into, err := rooted.MkdirTemp(u.dir, "")
	if err != nil {
		return fmt.Errorf("cannot take files in: %w", err)
	}
	f, err := rooted.OpenFile(filepath.Join(into, name), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return fmt.Errorf("cannot take files in: %w", err)
	}
	_, err = io.Copy(f, part)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return unread(err)
	}
	u.Files[field] = UploadedFile{name, f.Name()}
	return nil
}

// unread is the error of a form that broke off, is none, or is too large.
func unread(err error) error {
	var large *http.MaxBytesError
	var disk *fs.PathError
	switch {
	case errors.As(err, &large):
		return tooLarge(large.Limit)
	case errors.As(err, &disk):
		return fmt.Errorf("cannot take files in: %w", err)
	}
	return Errorf(http.StatusBadRequest, "the files did not arrive whole: %v", err)
}

// Close removes the files.
func (u *Upload) Close() error { return rooted.RemoveAll(u.dir) }
