mod sessions;
