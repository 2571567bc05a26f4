package sqlite

import (
	"unsafe"

	"golang.org/x/sys/windows"
)

// allowed are whoever runs the program and the system itself, as which backups run.
func allowed() ([]*windows.SID, error) {
	user, err := windows.GetCurrentProcessToken().GetTokenUser()
	if err != nil {
		return nil, err
	}
	system, err := windows.CreateWellKnownSid(windows.WinLocalSystemSid)
	if err != nil {
		return nil, err
	}
	return []*windows.SID{user.User.Sid, system}, nil
}

// onlyOwner takes every right on a file or a folder from all but those allowed, and lets none be inherited from
// above.
func onlyOwner(path string) error {
	sids, err := allowed()
	if err != nil {
		return err
	}
	entries := make([]windows.EXPLICIT_ACCESS, len(sids))
	for i, sid := range sids {
		entries[i] = windows.EXPLICIT_ACCESS{
			AccessPermissions: windows.GENERIC_ALL,
			AccessMode:        windows.SET_ACCESS,
			Inheritance:       windows.SUB_CONTAINERS_AND_OBJECTS_INHERIT,
			Trustee: windows.TRUSTEE{
				TrusteeForm: windows.TRUSTEE_IS_SID, TrusteeType: windows.TRUSTEE_IS_UNKNOWN, TrusteeValue: windows.TrusteeValueFromSID(sid),
			},
		}
	}
	list, err := windows.ACLFromEntries(entries, nil)
	if err != nil {
		return err
	}
	return windows.SetNamedSecurityInfo(path, windows.SE_FILE_OBJECT,
		windows.DACL_SECURITY_INFORMATION|windows.PROTECTED_DACL_SECURITY_INFORMATION, nil, nil, list, nil)
}

// forOthers says whether anybody else is given any right on a file or a folder. One without a list is open to all.
func forOthers(path string) (bool, error) {
	sids, err := allowed()
	if err != nil {
		return false, err
	}
	info, err := windows.GetNamedSecurityInfo(path, windows.SE_FILE_OBJECT, windows.DACL_SECURITY_INFORMATION)
	if err != nil {
		return false, err
	}
	list, _, err := info.DACL()
	if err != nil || list == nil {
		return list == nil, nil //nolint:nilerr // there is no list
	}
	for i := range uint32(list.AceCount) {
		var ace *windows.ACCESS_ALLOWED_ACE
		if err := windows.GetAce(list, i, &ace); err != nil {
			return false, err
		}
		if ace.Header.AceType != windows.ACCESS_ALLOWED_ACE_TYPE {
			continue
		}
		given := (*windows.SID)(unsafe.Pointer(&ace.SidStart)) //nolint:gosec // the identity follows the entry's head
		if !given.Equals(sids[0]) && !given.Equals(sids[1]) {
			return true, nil
		}
	}
	return false, nil
}
