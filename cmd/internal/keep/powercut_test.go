package keep

import (
	"fmt"
	"io/fs"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
)

// forgetful is a disk that loses, at a power cut, what was not flushed:
//
//   - data written and not flushed is torn: a part of it, in blocks, and the rest zeros;
//   - changes of names (made, linked, renamed, removed) since the last journal commit are
//     kept or lost each by itself, whatever their order was: directories lie in several
//     blocks, and nothing says which is written first;
//   - a commit comes when the system pleases.
//
// What is flushed stays. Whether links can be had is the file system's affair.
type forgetful struct {
	draw    *rand.Rand
	links   bool
	cutAt   int // operations until the power goes; < 0 = never
	names   map[string]*inode
	durable map[string]*inode // names after the last commit
	since   []func(names map[string]*inode)
	temps   int
}

type inode struct {
	data, flushed []byte
}

// cut is what ends a program when the power goes.
type cut struct{}

func newForgetful(draw *rand.Rand, links bool) *forgetful {
	return &forgetful{draw: draw, links: links, cutAt: -1, names: map[string]*inode{}, durable: map[string]*inode{}}
}

// step is one operation; the power may go before it.
func (f *forgetful) step() {
	if f.cutAt == 0 {
		panic(cut{})
	}
	f.cutAt--
	if f.draw.IntN(40) == 0 {
		f.commit()
	}
}

func (f *forgetful) commit() {
	f.durable, f.since = map[string]*inode{}, nil
	for n, i := range f.names {
		f.durable[n] = i
	}
}

// change makes a change of names now, and perhaps on the disk.
func (f *forgetful) change(do func(map[string]*inode)) {
	f.step()
	do(f.names)
	f.since = append(f.since, do)
}

// power comes back: what is there now is what the disk kept.
func (f *forgetful) power() {
	for _, do := range f.since {
		if f.draw.IntN(2) == 0 {
			do(f.durable)
		}
	}
	for _, i := range f.durable {
		if len(i.data) == len(i.flushed) {
			continue
		}
		const block = 512
		torn := make([]byte, len(i.data))
		for at := 0; at < len(torn); at += block {
			if f.draw.IntN(2) == 0 {
				copy(torn[at:min(at+block, len(torn))], i.data[at:])
			}
		}
		i.data = torn[:f.draw.IntN(len(torn)+1)]
		i.flushed = i.data
	}
	f.names, f.since, f.cutAt = map[string]*inode{}, nil, -1
	for n, i := range f.durable {
		f.names[n] = i
	}
}

func (f *forgetful) read(path string) ([]byte, error) {
	if i := f.names[path]; i != nil {
		return slices.Clone(i.data), nil
	}
	return nil, &fs.PathError{Op: "open", Path: path, Err: fs.ErrNotExist}
}

// replace does what renameio does: a new file, its bytes in some writes, a flush, a rename.
func (f *forgetful) replace(path string, text []byte) error {
	f.temps++
	tmp := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s%d", filepath.Base(path), f.temps))
	i := &inode{}
	f.change(func(n map[string]*inode) { n[tmp] = i })
	for len(i.data) < len(text) {
		f.step()
		i.data = text[:min(len(text), len(i.data)+700)]
	}
	f.step()
	i.flushed = i.data
	return f.rename(tmp, path)
}

func (f *forgetful) link(old, new string) error {
	i := f.names[old]
	if !f.links || i == nil || f.names[new] != nil {
		return &fs.PathError{Op: "link", Path: new, Err: fs.ErrInvalid}
	}
	f.change(func(n map[string]*inode) { n[new] = i })
	return nil
}

// rename moves one file, the one it was when it was asked for: on the disk too, where the
// name before may have been lost.
func (f *forgetful) rename(old, new string) error {
	i := f.names[old]
	if i == nil {
		return &fs.PathError{Op: "rename", Path: old, Err: fs.ErrNotExist}
	}
	f.change(func(n map[string]*inode) {
		if n[old] == i {
			delete(n, old)
		}
		n[new] = i
	})
	return nil
}

func (f *forgetful) remove(path string) {
	if f.names[path] != nil {
		f.change(func(n map[string]*inode) { delete(n, path) })
	}
}

func (f *forgetful) glob(pattern string) (found []string) {
	for n := range f.names {
		if ok, _ := filepath.Match(pattern, n); ok {
			found = append(found, n)
		}
	}
	slices.Sort(found)
	return found
}

// TestThousandPowerCuts: at a thousand instants the power goes while states are saved one
// after the other. What is loaded then is whole, is one of those saved, and none older
// than the last that was surely on the disk; and saving goes on as ever.
func TestThousandPowerCuts(t *testing.T) {
	const dir = "/state"
	lostNewest := 0
	for n := range 1000 {
		draw := rand.New(rand.NewPCG(uint64(n), 17))
		f := newForgetful(draw, n%4 != 3)
		saved, sure := 0, 0 // generations, by their rate
		for range 3 {
			f.cutAt = draw.IntN(120)
			func() {
				defer func() {
					if r := recover(); r != nil && r != (cut{}) {
						panic(r)
					}
				}()
				for {
					next := big(float64(saved + 1))
					saved++
					if err := save(f, dir, next); err != nil {
						t.Fatalf("cut %d: save %d: %v", n, saved, err)
					}
					if len(f.since) == 0 {
						sure = saved
					}
					if f.draw.IntN(3) == 0 { // an hour passes: the system has flushed it all
						f.commit()
						sure = saved
					}
				}
			}()
			f.power()
			got, err := load(f, dir)
			rate := int(got.Learned.RatePPM)
			if rate > saved || rate < sure {
				t.Fatalf("cut %d: loaded %d of %d saved, %d surely on the disk (%v): %v", n, rate, saved, sure, err, keysOf(f))
			}
			if rate > 0 && got.Place == nil {
				t.Fatalf("cut %d: half a state: %+v", n, got)
			}
			if rate < saved-1 { // the last was being saved
				lostNewest++
			}
			saved, sure = max(saved, rate), rate
		}
		if left := len(f.names); left > 8 {
			t.Errorf("cut %d: %d files lie about: %v", n, left, keysOf(f))
		}
	}
	t.Logf("3,000 cuts; more than the one being saved was lost in %d", lostNewest)
}

// big is a state of several blocks.
func big(rate float64) State {
	s := sample(rate)
	p := *s.Place
	s.Place = &p
	s.Receiver.Serial = fmt.Sprintf("%03000d", int(rate))
	return s
}

func keysOf(f *forgetful) (names []string) {
	for n := range f.names {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}
