package capture

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/wav"
)

// KeepCalibration writes the calibration c, of which r is the recording, into
// the folder dir as card-RATE.toml and card-RATE.wav, in place of earlier ones.
// Both are on the disk before either gets its name. path and sum are those of
// the first.
func KeepCalibration(dir string, c Calibration, r Recording) (path, sum string, err error) {
	if c.Stimulus == nil {
		return "", "", errors.New("a calibration is kept with its stimulus")
	}
	name := fmt.Sprintf("card-%d", c.RateHz)
	audio, err := atomicfile.Create(filepath.Join(dir, name+".wav"))
	if err != nil {
		return "", "", err
	}
	defer audio.Abort()
	r.Source = wav.Format{Encoding: wav.Float, Bits: 32, RateHz: r.RateHz, Channels: len(r.Samples)}
	if err := EncodeRecording(audio, r); err != nil {
		return "", "", err
	}
	heard, err := atomicfile.SumOf(io.NewSectionReader(audio, 0, 1<<40))
	if err != nil {
		return "", "", err
	}
	c.Audio = &Audio{File: name + ".wav", SHA256: heard, RateHz: r.RateHz, Channels: len(r.Samples),
		Frames: int64(r.Frames())}
	text, err := EncodeCalibration(c)
	if err != nil {
		return "", "", err
	}
	path = filepath.Join(dir, name+".toml")
	table, err := atomicfile.Create(path)
	if err != nil {
		return "", "", err
	}
	defer table.Abort()
	if _, err := table.Write(text); err != nil {
		return "", "", err
	}
	if err := errors.Join(audio.Sync(), table.Sync()); err != nil {
		return "", "", fmt.Errorf("cannot write %s: %w", path, atomicfile.Advise(path, err))
	}
	if err := audio.Commit(); err != nil {
		return "", "", err
	}
	return path, atomicfile.Sum(text), table.Commit()
}

// CalibrationAudio reads the recording behind the calibration c that is kept in
// the folder dir. Another one than that which the calibration names, by its
// checksum, is an error.
func CalibrationAudio(dir string, c Calibration) (Recording, error) {
	if c.Audio == nil || c.Stimulus == nil {
		return Recording{}, errors.New("the calibration was kept without its recording: calibrate again")
	}
	path := filepath.Join(dir, filepath.Base(c.Audio.File))
	f, size, err := atomicfile.Open(path)
	if err != nil {
		return Recording{}, fmt.Errorf("cannot read the recording of the sound card: %w", err)
	}
	defer f.Close()
	if sum, err := atomicfile.SumOf(f); err != nil || sum != c.Audio.SHA256 {
		return Recording{}, fmt.Errorf("%s is not the recording behind the calibration of %s: restore it, "+
			"or calibrate again", path, c.day())
	}
	r, err := decodeRecording(f, size, Want{})
	if err != nil {
		return Recording{}, fmt.Errorf("%s: %w", path, err)
	}
	return r, nil
}

// ReadCalibration reads the calibration at path. Another one than that with the
// checksum is an error.
func ReadCalibration(path, sha256Hex string) (Calibration, error) {
	text, err := atomicfile.Read(path, atomicfile.MaxText)
	if err != nil {
		return Calibration{}, fmt.Errorf("cannot read the sound card's calibration: %w", err)
	}
	if atomicfile.Sum(text) != sha256Hex {
		return Calibration{}, fmt.Errorf(
			"%s is not the calibration that %s names: it was changed; calibrate the sound "+
				"card again", path, filepath.Join(filepath.Dir(path), "bench.toml"))
	}
	c, err := DecodeCalibration(text)
	if err != nil {
		return Calibration{}, fmt.Errorf("%s: %w", path, err)
	}
	return c, nil
}
