SELECT count(*) FROM visit
